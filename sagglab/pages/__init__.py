"""Pages: results, tables and colours as HTML for a notebook; rounded there, and nowhere else."""
