"""Property tests draw the same examples in every run, so that a change is judged by the change alone."""

from hypothesis import settings

settings.register_profile("same_examples", derandomize=True, deadline=None)
settings.load_profile("same_examples")
