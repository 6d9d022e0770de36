"""The web application: routes and forms. It asks `answers` and `work`, shows what they say, and computes no statistic."""
