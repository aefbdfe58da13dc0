"""`faultodds trial`: policies side by side on the same simulated calls.

The only place that knows both the model and the simulator. `bridge` carries words from one to the other, `visit` keeps
one job's evidence and prices, `checklist`, `choosers` and `clairvoyant` are the policies, `play` plays jobs on several
processes, `stats` adds them up, `table` shows them.
"""
