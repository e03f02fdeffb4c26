"""Shared by all tests: the package has to be installed, as its command line maps from cli/."""

from __future__ import annotations

import importlib.util
import os
import tempfile

import pytest

if importlib.util.find_spec("scaler.cli") is None:
    pytest.exit("scaler is not installed here: python -m pip install -e '.[test]'", returncode=4)

# no test may read the tables and shop list of whoever runs it
os.environ["SCALER_TABLES"] = os.path.join(tempfile.mkdtemp(prefix="scaler-tests-"), "tables")

from hypothesis import HealthCheck, settings

settings.register_profile(
    "scaler",
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("scaler")

from smallest import every_conflict_is_smallest

__all__ = ["every_conflict_is_smallest"]
