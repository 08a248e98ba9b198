"""A scenario file, validated: the machine and the print as the user describes them, in workshop units."""
