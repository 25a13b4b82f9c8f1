"""Records that survive anything: saving, reading, history, recovery, merging, the index of the case list.

This layer works on text, bytes and plain dicts. What a case means is not known here: whoever calls passes the
codec in. Nothing is imported by this file, so that each caller pays only for what it uses.
"""
