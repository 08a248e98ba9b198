"""Every number explained: keys, quantities, rows, grades and messages, from the tables and docstrings that
the program itself lives by."""
