"""Proving that no way of events can make signals let trains meet: for every group of interlocked signals.

`prove_layout` needs the library of the extra `proof`; nothing else in lamproom imports it.
"""
