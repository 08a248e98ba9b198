"""Workshop measurements turned into scenario keys: dial-gauge run-out, push and pull, tap, weight on a
cord."""
