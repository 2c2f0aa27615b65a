"""The store of a repository: register, ledgers, cards and places, as text in one folder."""
