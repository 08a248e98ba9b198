"""Screws as bought: tolerance grades, the standard's own evaluation, lots and kinds."""
