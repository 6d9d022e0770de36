"""The shapes that measures answer with, a module a subject. Fields may be added, never renamed: the JSON is a
contract. Each field says what it means, in the docstring under it: the topics of `coldledger help` and /help print
these words (`meanings.py`), and so does an export beside its columns.
"""
