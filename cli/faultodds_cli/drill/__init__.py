"""`faultodds drill`: a simulated call for an apprentice, who says his odds and what he does; no odds and no advice until the end.

`levels` chooses the call; `words` hears a line; `game` plays it, by the books of `trial`, and ends it at a safety slip; `talk`
is the room it is played in, `kept` what is on disk; `debrief` works out the end and `show` says it; `marks` are the pages of a
person and a class, `sheet` the drill on paper.
"""
