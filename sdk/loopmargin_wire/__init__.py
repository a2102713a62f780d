"""The wire contract of loopmargin: msgspec Structs and nothing else."""
