"""The command line: one module per command; print and exit codes live here only."""
