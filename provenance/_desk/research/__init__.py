"""Pages for those who read a record: bundles, finding aid, plug finder, ways back to holes."""
