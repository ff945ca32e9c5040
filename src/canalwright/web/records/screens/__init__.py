"""The record screens as HTML: frames, forms, lists."""
