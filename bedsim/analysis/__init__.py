"""What follows from results: metrics, shares by cause, walls, comparisons."""
