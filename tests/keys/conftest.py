"""Modules beside these tests are found by their names."""
