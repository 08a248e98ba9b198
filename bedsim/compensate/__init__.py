"""What a machine can take off its own print: corrections, what they leave, and how well the phase must be
known."""
