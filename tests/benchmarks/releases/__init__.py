"""Two releases of the program beside each other, each in a process of its own."""
