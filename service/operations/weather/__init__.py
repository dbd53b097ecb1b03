"""Weather taken in: from services, files, stations and hand-read gauges."""
