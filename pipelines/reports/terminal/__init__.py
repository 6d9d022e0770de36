"""Answers on the terminal: tables for people, JSON and CSV for machines."""
