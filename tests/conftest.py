"""What holds for every test."""

from hypothesis import settings

# A busy machine makes any example slow; how long things take is measured by make bench.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
