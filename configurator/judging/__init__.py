"""One vehicle in front of a catalogue: what its tip-in asks for, what each combination gives, what the rules find."""
