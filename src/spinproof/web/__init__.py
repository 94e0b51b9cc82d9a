"""The pages: server-rendered, usable without scripts, asking no other host."""
