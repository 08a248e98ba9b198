"""Pictures and pages; they draw what they are given and compute nothing."""
