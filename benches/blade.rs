//! How many moves a second the exact propagator takes on one core.
//!
//! Wanted: at least 10 million segments a second, so that proving a job costs less than reading it.

use std::hint::black_box;

use bladewright::blade::TrailingBlade;
use bladewright::geometry::Point;
use criterion::{Criterion, Throughput, criterion_group, criterion_main};

/// Vertices of a wavy line with short and long segments, all turns mixed.
fn wavy(count: usize) -> Vec<Point> {
    (0..count)
        .map(|i| {
            let t = i as f64;
            Point::new(0.07 * t + 0.4 * (0.9 * t).sin(), 3.0 * (0.05 * t).sin())
        })
        .collect()
}

fn propagate(c: &mut Criterion) {
    let axis = wavy(10_000);
    let mut group = c.benchmark_group("trailing blade");
    group.throughput(Throughput::Elements(axis.len() as u64));
    group.bench_function("line segments", |b| {
        b.iter(|| {
            let mut blade = TrailingBlade::new(0.25, Point::ORIGIN, 1.0);
            let mut sum = Point::ORIGIN;
            for &to in black_box(&axis) {
                blade.line_to(to);
                sum = sum + blade.tip();
            }
            sum
        });
    });
    group.bench_function("arcs", |b| {
        b.iter(|| {
            let mut blade = TrailingBlade::new(0.25, Point::ORIGIN, 1.0);
            let mut sum = Point::ORIGIN;
            for &center in black_box(&axis) {
                blade.arc(center, 0.3);
                sum = sum + blade.tip();
            }
            sum
        });
    });
    group.finish();
}

criterion_group!(benches, propagate);
criterion_main!(benches);
