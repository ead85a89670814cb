// What a sender has taken from its ring and not yet sent.
//   A curve value replaces an older one of its controller that still waits, but never across a bundle: what a note was
//   prepared with stays in front of it, and what follows stays behind.
//   thread   the sender's.  Real-time safe: no.  Errors: none.
#pragma once

#include "studio/lines.hpp"

#include <deque>

namespace bowarm
{

class Pending
{
public:
    void add(const OutItem& item)
    {
        if (item.count == 0) {
            for (auto old = items_.rbegin(); old != items_.rend() && old->count == 0; ++old) {
                if (old->controller != item.controller) continue;
                old->value = item.value;
                return;
            }
        }
        items_.push_back(item);
    }
    bool empty() const { return items_.empty(); }
    std::size_t size() const { return items_.size(); }
    const OutItem& front() const { return items_.front(); }
    void pop() { items_.pop_front(); }
    void clear() { items_.clear(); }

private:
    std::deque<OutItem> items_;
};

} // namespace bowarm
