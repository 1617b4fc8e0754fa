"""Inputs spoilt at random, thousands of them, to see that none ends in more than a sentence.

`spoiling` spoils texts and bytes, `cases` are what is spoilt and the command that then reads it,
`trial` runs one in a process of its own within bounds. ``python -m tests.fuzz`` runs many.
"""
