"""One machine from all its readings: what they say together of screws, stiffnesses and the answer."""
