"""Settings that hold for every test."""

from __future__ import annotations

import os

from hypothesis import settings

# In CI the examples are the same at every run, so that a red run can be repeated.
settings.register_profile("ci", derandomize=True, deadline=None)
settings.register_profile("here", deadline=None)
settings.load_profile("ci" if os.environ.get("CI") else "here")
