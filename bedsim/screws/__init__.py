"""Screws as bought: tolerance grades, lots, and the screws drawn from them."""
