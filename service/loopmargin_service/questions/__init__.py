"""One module per question: wire question in, wire answer out; units convert only here."""
