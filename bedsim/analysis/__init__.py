"""What follows from a run and from `size`: figures, words, cautions, closed formulas beside the machine."""
