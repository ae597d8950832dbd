"""Reference signals from first principles. Nothing here imports or shares code with the analyses."""
