"""From a scenario to equations: motion program, assembled matrices, imposed extensions, contacts."""
