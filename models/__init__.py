"""Physics of the cure: pure functions and one solver."""
