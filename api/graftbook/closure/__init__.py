"""The reasoning: pure functions on a rule book. Start reading at `answering`."""
