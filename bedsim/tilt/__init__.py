"""The bed tilted by its screws: poses and limits, the machine along a tilt, and what a user is told."""
