"""The loopmargin service: http asks, questions compose, physics computes."""
