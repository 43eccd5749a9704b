"""Run every script of this folder."""

from tests.runner import command_line

command_line("fuzz")
