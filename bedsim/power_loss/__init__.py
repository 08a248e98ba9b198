"""Motors without current: screws driven back, the course of a fall, corners apart, what a user is told."""
