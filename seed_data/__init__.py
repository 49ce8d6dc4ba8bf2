"""The demo scenario and its generator: motors and rigs written down as physics, then measured.

Nothing here imports the service: what it computes is the other side of every comparison.
"""
