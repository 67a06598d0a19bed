"""From a brief to a recommendation: the top room, which may import the two rooms below it.

Importing this package imports nothing heavy; take what you need from its modules, for example
``from gelwright.optimiser.brief import ...``.
"""
