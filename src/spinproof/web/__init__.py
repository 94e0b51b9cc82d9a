"""The pages: read-only, server-rendered, usable without scripts, asking no other host."""
