"""Living with the machine: wear, grease, noise, the calendar of jobs, and the choice between machines."""
