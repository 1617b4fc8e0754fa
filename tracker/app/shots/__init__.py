"""The page of shots: the film beside the table, decisions that are answered at once."""
