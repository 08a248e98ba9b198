"""What a builder can change, ranked by what it gains, and what it costs elsewhere."""
