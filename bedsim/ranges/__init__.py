"""What stands behind a number: how far uncertain keys move it, and which cause it comes from."""
