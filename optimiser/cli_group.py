"""A group of commands whose help shows the whole first sentence of each."""

from __future__ import annotations

from typing import Any

from typer.core import TyperGroup


class SentenceGroup(TyperGroup):
    """Commands listed with their first sentences, wrapped where the option parser itself would cut them short."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write the list of commands."""
        listed = [(name, self.get_command(ctx, name)) for name in self.list_commands(ctx)]
        rows = [(name, each.get_short_help_str(10_000)) for name, each in listed if each and not each.hidden]
        if rows:
            with formatter.section("Commands"):
                formatter.write_dl(rows)
