"""The commands, one module each, named as the command. Large libraries are imported only when a command runs."""
