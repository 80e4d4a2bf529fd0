"""The mould: which way it opens, what it holds, what that asks of the rubber."""
