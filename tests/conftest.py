"""Lets the tests run from a bare checkout: `gelwright` is then the folder that holds the three rooms."""

import importlib.util
import sys
import types
from pathlib import Path

from hypothesis import settings

REPOSITORY = Path(__file__).resolve().parents[1]

if importlib.util.find_spec("gelwright") is None:
    package = types.ModuleType("gelwright")
    package.__path__ = [str(REPOSITORY)]
    sys.modules["gelwright"] = package

# The first call of a compiled function takes seconds, so a time limit per example would mean nothing;
# fixed examples keep a failure repeatable on any machine.
settings.register_profile("gelwright", deadline=None, derandomize=True)
settings.load_profile("gelwright")
