"""``catalogue completion``: print the completion script of a shell."""

import click
from click.shell_completion import get_completion_class

from catalogue.commands import command as program
from catalogue.commands.session import Session

WHERE = {"bash": "~/.bashrc", "zsh": "~/.zshrc", "fish": "~/.config/fish/completions/catalogue.fish"}


@click.command("completion")
@click.argument("shell", type=click.Choice(sorted(WHERE)))
@click.pass_obj
def command(_: Session, shell: str) -> None:
    """Print the completion script for SHELL.

    Add its lines to the shell's start file: catalogue completion bash >> ~/.bashrc
    """
    kind = get_completion_class(shell)
    if kind is None:
        raise click.UsageError(f"There is no completion for {shell}.")
    click.echo(f"# Completion for catalogue; belongs in {WHERE[shell]}")
    click.echo(kind(program, {}, "catalogue", "_CATALOGUE_COMPLETE").source())
