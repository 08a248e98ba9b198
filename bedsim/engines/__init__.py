"""Ways to solve the assembled model; an engine sees matrices and forces, never a screw."""
