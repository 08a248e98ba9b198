"""A shaken frame: pushes on the natural modes, how long they ring on, and what a user is told."""
