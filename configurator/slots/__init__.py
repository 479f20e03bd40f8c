"""What may sit where: the slots of a pump circuit, what is on offer for each, and what the user wishes."""
