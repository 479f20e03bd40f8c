"""Commands in groups: the panels of `tipin --help`, in the order of the work, and a group with a command that is meant
where none is named."""

from typing import Any

from typer.core import TyperGroup

PANELS = {
    "The car": ("new",),
    "Which parts": ("check", "size", "propose", "why", "compare"),
    "Trial runs and the shelf": ("next", "trial", "fit", "stock", "book"),
    "Paper and pictures": ("card", "draw"),
    "The whole workshop": ("order", "serve", "units"),
    "Catalogue and model": ("parts", "catalogue", "assumptions"),
}
IN_ORDER = tuple(name for names in PANELS.values() for name in names)


class InPanels(TyperGroup):
    """All commands of tipin, listed and completed in the order of the work."""

    def list_commands(self, ctx: Any) -> list[str]:
        return sorted(self.commands, key=IN_ORDER.index)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        wide = max(map(len, self.commands))
        for panel, names in PANELS.items():
            rows = [
                (name.ljust(wide), self.commands[name].get_short_help_str(formatter.width - 6 - wide)) for name in names
            ]
            with formatter.section(panel):
                formatter.write_dl(rows)


class AddIfNotNamed(TyperGroup):
    """`trial CAR --felt WORD` is `trial add CAR --felt WORD`, as on job cards that were printed before."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        named = not args or args[0] in (*self.commands, *self.get_help_option_names(ctx))
        return super().parse_args(ctx, args if named else ["add", *args])
