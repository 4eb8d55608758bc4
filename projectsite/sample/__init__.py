"""The sample project: what a contractor would receive, put into the record by operations.

Part of the composition root, because it uses every concern. All of it is invented.
"""
