"""What a run leaves behind: errors layer by layer, and the one place that reads and writes files of them."""
