"""Ways in and out: a channel reads a turn, hands on a Message, and renders the Reply; it decides nothing."""
