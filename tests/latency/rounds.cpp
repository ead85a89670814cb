#include "rounds.hpp"

#include <algorithm>
#include <numeric>

namespace bowarm::latency
{

Round::Round(std::size_t notes) { late_.reserve(notes); }

void Round::begin()
{
    waiting_.fill(std::nullopt);
    late_.clear();
    sent_ = 0;
}

void Round::sent(std::uint8_t key, jack_nframes_t frame)
{
    waiting_[key] = frame;
    ++sent_;
}

void Round::heard(std::uint8_t key, jack_nframes_t frame)
{
    if (!waiting_[key] || late_.size() == late_.capacity()) return;
    late_.push_back(frame - *waiting_[key]);
    waiting_[key].reset();
}

Result Round::results() const
{
    Result r;
    r.sent = sent_;
    r.lost = sent_ - late_.size();
    if (late_.empty()) return r;
    std::vector<jack_nframes_t> sorted = late_;
    std::sort(sorted.begin(), sorted.end());
    r.median = sorted[sorted.size() / 2];
    r.nine_in_ten = sorted[sorted.size() * 9 / 10];
    r.most = sorted.back();
    r.mean = std::accumulate(sorted.begin(), sorted.end(), 0.0) / static_cast<double>(sorted.size());
    return r;
}

} // namespace bowarm::latency
