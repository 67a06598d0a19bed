"""The family of errors a user can meet; each message is one line with a remedy."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class GelwrightError(Exception):
    """Base of every expected error; the command line prints it as one line and exits with 2."""


class InputError(GelwrightError, ValueError):
    """A file, an option or an argument breaks a rule; the message names the rule and the remedy."""


class UnknownNameError(GelwrightError, LookupError):
    """A name that is not in a registry; the message lists the known names and the nearest one."""


class SolverError(GelwrightError, RuntimeError):
    """A calculation did not finish, or broke one of its own balances."""


def unknown_name(kind: str, name: str, known: Iterable[str]) -> UnknownNameError:
    """Build the error for an unknown name, to be raised by the caller.

    Parameters
    ----------
    kind : str
        What was looked up, in plain words, e.g. ``"lamp"``.
    name : str
        The name that was not found.
    known : iterable of str
        The names that exist.

    Returns
    -------
    UnknownNameError
        Its message lists the known names and, where one is close, the nearest.

    Examples
    --------
    >>> print(unknown_name("coat", "buildr", ["base", "builder"]))
    unknown coat 'buildr'; did you mean 'builder'? Known: base, builder.
    """
    names = list(known)
    folded = {each.casefold(): each for each in names}
    near = difflib.get_close_matches(name.casefold(), list(folded), n=1, cutoff=0.5)
    hint = f"; did you mean '{folded[near[0]]}'?" if near else "."
    listing = f" Known: {', '.join(names)}." if names else " None exist yet."
    return UnknownNameError(f"unknown {kind} '{name}'{hint}{listing}")
