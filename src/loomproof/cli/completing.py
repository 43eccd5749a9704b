"""``completion``: have the shell complete what is typed."""

from __future__ import annotations

import click

VARIABLE = "_LOOMPROOF_COMPLETE"
"""What a shell's script sets, with the shell's name, when it asks what a word may become."""


def complete(group: click.Group, asked: str) -> int:
    """Answer a shell: its script, or what the word at the cursor may become; return the exit code."""
    from click.shell_completion import shell_complete

    return shell_complete(group, {}, "loomproof", VARIABLE, asked)


@click.command()
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish", "powershell"]))
@click.pass_context
def completion(context: click.Context, shell: str) -> None:
    """Have your SHELL complete commands, options, looms, runs, connectors and cavities as you type.

    Prints a script. It holds for good where the shell reads it when it starts:

    \b
    bash        eval "$(loomproof completion bash)"              in ~/.bashrc
    zsh         eval "$(loomproof completion zsh)"               in ~/.zshrc
    fish        loomproof completion fish | source               in config.fish
    PowerShell  loomproof completion powershell | Out-String |
                Invoke-Expression                                in $PROFILE
    """
    group = context.find_root().command
    assert isinstance(group, click.Group)
    complete(group, f"{shell}_source")
    if shell == "bash":  # it parts words at colons else, and BODY:1 is one word
        click.echo("COMP_WORDBREAKS=${COMP_WORDBREAKS//:}")
