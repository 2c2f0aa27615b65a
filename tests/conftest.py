"""Settings for the whole suite."""

from hypothesis import settings

# A busy machine must not fail a law; how long a check takes is for benchmarks/ to say.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
