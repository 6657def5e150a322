"""The counter's day as use cases: drop-off, bench, readings, pick-up, coming back, leagues, lists; wires no channel."""
