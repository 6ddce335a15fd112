"""What is kept of assessments: their files, sittings that go on, results, a teacher's word."""
