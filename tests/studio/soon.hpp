// Waits for what another thread does.
#pragma once

#include <chrono>
#include <thread>

namespace bowarm::test
{

// False after eight seconds in vain: a busy machine takes its time.
template <class Condition> bool soon(Condition condition)
{
    for (int i = 0; i < 8000; ++i) {
        if (condition()) return true;
        std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }
    return false;
}

} // namespace bowarm::test
