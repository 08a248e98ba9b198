"""One part of the machine per module: its rows, its mass, its formula with source and limits."""
