"""Lets a study run from a bare checkout: imported first, it makes `gelwright` the folder that holds the three rooms."""

import importlib.util
import sys
import types
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[2]

if "gelwright" not in sys.modules and importlib.util.find_spec("gelwright") is None:
    package = types.ModuleType("gelwright")
    package.__path__ = [str(REPOSITORY)]
    sys.modules["gelwright"] = package
