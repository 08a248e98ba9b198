"""What commands answer, as data: the models behind `--json`, and what makes them from the answers."""
