"""A second invented world, written without sight of the simulator: `world.toml` says all of it, `call.py` plays it."""
