"""Questions over very many kept proofs, answered by whatever database they lie in.

A store answers from the tables that it keeps beside each sealed record, and so does a data set of Parquet
files that was made of them. Nothing here opens a sealed record: that these tables say what the records say is
the store's own check (`records.integrity`).
"""
