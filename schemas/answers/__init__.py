"""The shapes that measures answer with, a module a subject. Fields may be added, never renamed: the JSON is a
contract. Each field says what it means: `coldledger help answers` and /help print these words.
"""
