"""The printed wall: what of the bed's errors stands on it, its bands, and what of them an eye sees."""
