"""Answers as text and pictures. Computes nothing."""
