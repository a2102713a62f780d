"""The edition of the numbers: it changes whenever any answer may change."""

EDITION = "2026.2"
