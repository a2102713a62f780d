"""One module per question: wire question in, wire answer out; the only place where units convert."""
