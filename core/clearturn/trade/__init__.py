"""The engineer's sums: one module per sum, pure functions, units in the names."""
