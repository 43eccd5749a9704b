"""What a person sees and presses at a terminal: questions, progress, tables. Knows no command."""
