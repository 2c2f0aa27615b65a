"""Lets in what was received: how much of it, and by which ways alone it is opened."""
