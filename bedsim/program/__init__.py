"""A part's own motion program, read into numbers: words (`lexer.py`), modes and places (`modes.py`)."""
