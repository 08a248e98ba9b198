"""Two or more machines side by side: what differs, by how much, and what it is worth."""
