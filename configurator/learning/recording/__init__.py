"""Recordings of a car's pull: a phone's or logger's file, the tip-ins in it, and what each says of delay and sag."""
